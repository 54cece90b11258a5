package telling

import (
	"fmt"
	"slices"
	"strings"
)

// A Kind is what a notice says. Kinds are for ever: messages, wishes and
// receivers of web hooks go by them.
type Kind string

// The kinds of notices, and the words that each is told in.
const (
	BookingConfirmed Kind = "booking-confirmed" // session, rolls
	BookingHeld      Kind = "booking-held"      // session, rolls, until
	BookingLapsed    Kind = "booking-lapsed"    // session
	BookingMoved     Kind = "booking-moved"     // from, session
	BookingChanged   Kind = "booking-changed"   // session, rolls
	BookingCancelled Kind = "booking-cancelled" // session
	CancelledLate    Kind = "cancelled-late"    // session
	NoShow           Kind = "no-show"           // session
	PlaceOffered     Kind = "place-offered"     // session, until
	OfferLapsed      Kind = "offer-lapsed"      // session
	FilmDry          Kind = "film-dry"          // rolls, when
	RunSpoiled       Kind = "run-spoiled"       // rolls
	PaymentMade      Kind = "payment-made"      // amount
	PaymentAnswered  Kind = "payment-answered"  // amount, answer
	KitClosed        Kind = "kit-closed"        // kit
	SignInChanged    Kind = "sign-in-changed"   // what
	HookDisabled     Kind = "hook-disabled"     // url, why
	DaysSkipped      Kind = "days-skipped"      // days
	OperatorLeft     Kind = "operator-left"     // what
)

// told is how a kind is worded. {word} stands for a word that the notice
// brings. mail says whether it is mailed unless the member wishes otherwise.
type told struct {
	kind        Kind
	title, text string
	mail        bool
}

// wording is every kind, in the order in which members choose among them.
// Texts name no other person and hold no secret: mail is read by others.
var wording = []told{
	{BookingConfirmed, "Your place is booked", "You have a place in the session of {session}, for {rolls}.", false},
	{BookingHeld, "A place is held for you", "A place in the session of {session} is held for {rolls} until {until}. Confirm it by then, or it is given up.", false},
	{BookingLapsed, "Your held place was given up", "The place held for you in the session of {session} was not confirmed in time and is free again.", true},
	{BookingMoved, "Your place was moved", "Your place in the session of {from} is now in the session of {session}.", true},
	{BookingChanged, "Your booking was changed", "Your place in the session of {session} is now for {rolls}.", false},
	{BookingCancelled, "Your booking is cancelled", "Your place in the session of {session} is cancelled.", true},
	{CancelledLate, "Your booking was cancelled late", "Your place in the session of {session} was cancelled after the lab's cut-off, which the lab keeps a note of.", true},
	{NoShow, "You were missed", "You had a place in the session of {session}, and nobody came with the film.", true},
	{PlaceOffered, "There is a place for you", "You are next on the waiting list: a place in the session of {session} is yours if you accept it by {until}.", true},
	{OfferLapsed, "An offered place went on", "The place offered to you in the session of {session} was not accepted in time and has gone to the next.", true},
	{FilmDry, "Your film is dry", "{rolls} can be fetched from {when} on.", true},
	{RunSpoiled, "A run went wrong", "The run with {rolls} was spoiled. The steward can say more; nothing is charged for it.", true},
	{PaymentMade, "A payment to you was recorded", "A member has recorded a payment of {amount} to you. Say whether it came.", true},
	{PaymentAnswered, "Your payment was answered", "Your payment of {amount} was {answer}.", true},
	{KitClosed, "A kit's costs are shared", "{kit} is closed and its price shared among those who used it; your statement shows your part.", true},
	{SignInChanged, "Your sign-in has changed", "{what}. If that was not you, tell the keeper of the lab.", true},
	{HookDisabled, "A web hook is switched off", "Nothing is sent to {url} any more: {why}.", true},
	{DaysSkipped, "Days without their session", "Days were opened on which no session came of an opening, or one at another time: {days}.", true},
	{OperatorLeft, "An operator has left", "Somebody has left the lab who is still to run {what}. Have the openings name another, of which no more sessions are made till then, and call off the sessions that nobody runs.", true},
}

// wordingOf finds a kind. It fails for one that is not in the table.
func wordingOf(k Kind) (told, error) {
	i := slices.IndexFunc(wording, func(t told) bool { return t.kind == k })
	if i < 0 {
		return told{}, fmt.Errorf("there are no notices of kind %q", k)
	}
	return wording[i], nil
}

// fill puts words in the place of {names}. It fails on a name without a word.
func fill(text string, words map[string]string) (string, error) {
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(text, "{")
		b.WriteString(before)
		if !found {
			return b.String(), nil
		}
		name, after, _ := strings.Cut(rest, "}")
		word, ok := words[name]
		if !ok {
			return "", fmt.Errorf("no word for %s", name)
		}
		b.WriteString(word)
		text = after
	}
}
