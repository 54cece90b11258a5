package api

import (
	"html/template"
	"net/http"
	"slices"
)

// A problemType says what a problem's code means; it is served at its type,
// /problems/{code}.
type problemType struct {
	Code        string `json:"code"`
	Status      int    `json:"status"`
	Title       string `json:"title"`
	Explanation string `json:"explanation"`
}

// problemTypes are all problems that Wetside answers with, in the order of
// their codes. The contract lists the same codes.
var problemTypes = []problemType{
	{"already-consented", 409, "The consent is there", "Each sharer consents to a change of terms once."},
	{"already-reversed", 409, "The entry is reversed already", "An entry is reversed once."},
	{"amount-not-positive", 422, "No amount", "What is paid is more than nothing."},
	{"amount-too-large", 422, "An amount out of all bounds", "No amount in the books is larger than 1,000,000,000,000 minor units."},
	{"batch-mixes-for-others", 409, "Other batches wait for its kit", "The batch mixes the kit that others run in. Cancel those first, or mix the kit."},
	{"batch-not-planned", 409, "The batch is past that", "A batch is run or cancelled once, and only while it is planned."},
	{"bath-dead", 409, "The bath is past its life", "A bath is discarded, exhausted or past its life. Mix a fresh set from a kit, then plan again."},
	{"bath-exhausted", 409, "The bath cannot carry this", "The film would take a bath beyond its rated area, number of runs or volume."},
	{"bath-not-quarantined", 409, "The bath is not in quarantine", "Only a bath in quarantine can be released."},
	{"bath-quarantined", 409, "The bath is in quarantine", "The steward keeps the bath from use. Release it first; a run that was made in it all the same is recorded with a written override."},
	{"baths-not-mixed", 409, "Its kit is not mixed", "The batch waits for a kit that is still on the shelf. Say first when it was mixed."},
	{"booking-cancelled", 409, "The booking is cancelled", "A booking is cancelled once; its rolls are free again since."},
	{"booking-missed", 409, "Nobody turned up", "The steward noted that the member did not turn up for this booking. Its rolls are free to be booked again."},
	{"booking-suspended", 409, "Too many strikes", "The member has given places up late, or not turned up, as often as the lab's booking rules bear. Until the time that is named the steward books for them."},
	{"busy", 503, "Too much at once", "Others were changing the same things at the same moment, again and again. The request had no effect; send it again after the time that Retry-After states."},
	{"buyers-do-not-add-up", 422, "The parts are not the price", "What the buyers paid adds up to the price, to the minor unit."},
	{"current-password-needed", 422, "The password that is to be replaced", "Who has a password gives it to set another, unless they signed in by a code, an invitation or the provider just now."},
	{"database-unavailable", 503, "The database cannot be reached", "Wetside runs but its database does not answer. Send the request again after the time that Retry-After states; with an Idempotency-Key it takes effect once, even if it had got through."},
	{"day-over", 409, "That day is over", "Closures and extra days are of today or later, by the lab's clock."},
	{"developer-out-of-tolerance", 422, "The colour developer is off its temperature", "A colour developer outside its tolerance is never corrected: its layers do not change alike. Bring it to temperature; a run that was made so is recorded with a written override."},
	{"directions-clash", 409, "Two directions against each other", "A roll cannot be held to a session and kept out of it. Take the other direction back first."},
	{"does-not-fit", 409, "The rolls do not fit", "The session cannot take these rolls besides what is booked there. Each error names a roll and a reason that holds."},
	{"email-taken", 409, "The address is taken", "Another member of the lab has this e-mail address."},
	{"extra-day-exists", 409, "The day is there already", "An opening has each day once. Take the extra day away first to give it another time."},
	{"forbidden", 403, "Not yours to do", "You are known, but this takes a role or an ownership that you do not have."},
	{"format-exists", 409, "The format is there", "The lab, or Wetside itself, has a format of this code. Take another."},
	{"guest", 409, "A guest does not sign in", "Guests are in the books alone; their host answers for them."},
	{"hold-lapsed", 409, "The hold is over", "A place was held for a stated time and not confirmed in it. Book anew."},
	{"hook-disabled", 409, "The web hook is switched off", "Nothing is sent to a web hook that is switched off. Switch it on first."},
	{"idempotency-answer-lost", 409, "The first answer cannot be read any more", "The request with this Idempotency-Key was carried out, but its answer was kept under a key that the server no longer has. Look the result up instead of sending the request again."},
	{"idempotency-key-reused", 422, "The key belongs to another request", "An Idempotency-Key names one request for ever. This one came before with another body; take a new key."},
	{"internal", 500, "Something went wrong on our side", "The request met a fault in Wetside. Its instance finds it in the server's log."},
	{"invalid", 422, "Against a rule", "The request is well formed but breaks a rule of the lab or of the trade. Each error names the field and the rule."},
	{"invitation-over", 409, "The invitation is over", "An invitation is accepted or withdrawn once."},
	{"kit-already-bought", 409, "The purchase is in the books", "A kit is bought once. If the purchase is wrong, reverse its entry, then enter what is right."},
	{"kit-closed", 409, "The kit is closed", "A closed kit has been shared out; nothing more can be drawn from it or charged to it."},
	{"kit-expired", 409, "The kit is past its life", "Neither an unopened kit past its date nor an opened one past its opened life is mixed."},
	{"kit-has-open-batches", 409, "The kit is still planned for", "Batches that are committed but not run draw on this kit. Record or cancel them, then close it."},
	{"kit-not-bought", 409, "Nobody has bought the kit yet", "What the kit cost is not in the books, so there is nothing to share. Enter its purchase, then close it."},
	{"kit-spent", 409, "The kit has no portion left", "Every portion of this kit has been mixed."},
	{"last-keeper", 409, "The last keeper stays", "A lab cannot be without a keeper. Make another member one first."},
	{"malformed", 400, "Not what the contract says", "The request is not of the shape that /openapi.yaml gives. Each error names a field by JSON Pointer, or a parameter, and what is wrong with it."},
	{"member-already", 409, "A member already", "The OpenID provider's person is bound to a member of this lab. Sign in as that."},
	{"member-has-film", 409, "The member's film is in the lab", "Hand the rolls back, or take them off the shelf, before anybody is erased."},
	{"member-has-bookings", 409, "The member has places to come", "Cancel their bookings and take them off the waiting list before anybody is erased."},
	{"member-has-balance", 409, "The member's account is not even", "Who leaves owes nothing, is owed nothing, and has no payment waiting to be confirmed. Settle first."},
	{"member-left", 409, "The member has left", "Somebody who has left the lab cannot sign in."},
	{"member-not-left", 409, "The member is still here", "What members owe and are owed is settled. Only what is left of those who have gone, and of guests, is written off."},
	{"method-not-allowed", 405, "Not that way", "The resource is there, but not for this method; Allow lists those that it knows."},
	{"month-closed", 409, "The month is closed", "Nothing is entered any more in a month whose books are closed, nor before it."},
	{"month-not-over", 409, "The month is not over", "A month is closed once it has passed in the lab's time zone."},
	{"name-taken", 409, "The name is taken", "The lab has something of that kind by this name or code. Take another."},
	{"no-email", 409, "No address", "A password goes with an e-mail address, and the member has none. The steward enters it."},
	{"no-mail", 409, "No mail from here", "The server is not set up to send mail. The steward hands codes out."},
	{"no-offer", 409, "Nothing is offered", "No place is offered to this entry of the waiting list now; its status says how far it has come."},
	{"no-provider", 409, "No OpenID provider", "The server is not set up for an OpenID provider of this lab."},
	{"no-such-time-zone", 422, "No such time zone", "Time zones go by their IANA names, such as Europe/Lisbon."},
	{"not-a-member", 403, "Not a member here", "The OpenID provider vouches for somebody who is no member of this lab, or whose address it has not verified. Ask to be invited."},
	{"not-a-sharer", 409, "Not one of the sharers", "Only who has used a kit, or subscribes to it, is asked for consent."},
	{"not-certified", 409, "Not certified for the tank", "Who books a self-service session runs it, and is certified for its tank. Book an attended session, or ask the steward."},
	{"not-confirmed", 409, "Only held", "The booking was not confirmed, so nobody was expected."},
	{"not-found", 404, "Not there", "There is nothing at this address, or nothing that you may know of."},
	{"not-ready", 503, "Not ready", "The server runs but cannot answer requests: it starts, it stops, or its database is away or not up to date. Each error names a check that failed."},
	{"nothing-to-write-off", 409, "The account is even", "There is no balance to write off."},
	{"offer-open", 409, "An offer is open", "The place is offered to somebody who waited. It is accepted or declined as it is; once accepted it can be changed."},
	{"openings-overlap", 409, "Two openings at one time", "A tank is open by one opening at a time. Choose other days or another time, or close the other opening on the day first."},
	{"password-too-weak", 422, "The password will not do", "It is too short or too long, one of those that are tried first, or made of names that anybody would try here. The error says which."},
	{"payment-answered", 409, "The payment is answered", "A payment is confirmed or declined once."},
	{"payment-to-oneself", 422, "Nobody pays themselves", "A payment goes from one party to another."},
	{"plan-not-draft", 409, "The plan is no draft", "A plan is committed once, and only while nothing has replaced it."},
	{"plan-stale", 412, "The plan is out of date", "Something that the plan rests on has changed since it was made. Make a new one."},
	{"plan-under-way", 409, "A plan is being made", "A lab makes one plan at a time, for planning takes all of a server. Wait for the one under way."},
	{"portions-do-not-add-up", 422, "The portions do not add up", "The parts of a bath are more than the bath, or all portions take more of a concentrate than the kit holds."},
	{"precondition-required", 428, "Say what you have seen", "This change needs If-Match with the ETag of the resource as you last read it, so that nobody's change is lost."},
	{"provider-away", 503, "The OpenID provider does not answer", "Its keys could not be read. Sign in some other way, or try again shortly."},
	{"quota-exceeded", 409, "Enough rolls for that week", "The lab's booking rules say how many rolls a member may have booked in the sessions of one week."},
	{"reversal-of-reversal", 409, "A reversal stands", "What a reversal undid is not restored by reversing it: enter what is right anew."},
	{"roll-already-booked", 409, "The roll has a place already", "A roll is booked into one session at a time. Cancel that booking first."},
	{"roll-already-charged", 409, "The roll is charged already", "Reverse the charge of its run, make the roll free, and charge the run anew."},
	{"roll-already-free", 409, "The roll is free already", "A roll is given free once."},
	{"roll-already-waiting", 409, "The roll waits already", "A roll is on the waiting list once. Leave that place in line to wait for something else."},
	{"roll-not-on-shelf", 409, "The roll is not on the shelf", "Only a roll that waits on the shelf can be booked, held to a session or kept out of one."},
	{"roll-status", 409, "The roll is past that", "What may be done with a roll depends on how far it has come; its status says."},
	{"roll-twice", 422, "The same roll twice", "A roll is named once in a booking."},
	{"run-already-charged", 409, "The run is charged already", "A run is charged once, and anew only after its charge was reversed."},
	{"run-already-recorded", 409, "The run is recorded already", "A batch is run once, and what happened is written once."},
	{"session-booked", 409, "The session is booked", "Members hold places in this session. They must cancel or be moved before it can be called off."},
	{"session-cancelled", 409, "The session is called off", "Nothing can be booked into a session that is called off, nor run in it."},
	{"session-not-begun", 409, "The session has not begun", "Whether a member turns up is known once their session has begun."},
	{"session-over", 409, "The session is over", "Places can be booked until a session is over."},
	{"session-taken", 409, "Another member runs it", "A self-service session is for the rolls of the member who booked it first."},
	{"stale", 412, "It has changed since you read it", "The ETag in If-Match is not the resource's any more. Read it again, look at what changed, and decide anew."},
	{"step-without-bath", 422, "A step without a bath", "Every step of a process that is not of water names the bath that it uses, and a kit brings a bath for each. Each error names a step, or a bath that is missing."},
	{"subscription-full", 409, "All shares are taken", "The kit has fewer shares left than were asked for."},
	{"subscriptions-closed", 409, "Subscriptions are closed", "Members subscribe to a kit ahead, until its offer closes and before it is first used."},
	{"table-not-increasing", 422, "The table is out of order", "Corrections, pushes, temperatures and limits are listed from less to more, so that a time can be read between two points. Each error names the first point that is not."},
	{"tank-taken", 409, "The tank is taken", "The tank has another session at that time."},
	{"temperature-not-celsius", 400, "Not in degrees Celsius", "Temperatures are in degrees Celsius with their unit, such as 37.8 °C. Nothing is converted: a figure in Fahrenheit that is taken for Celsius spoils film."},
	{"temperature-not-in-table", 422, "No time at this temperature", "The developer is outside its tolerance and outside what its table or curve knows. Bring it to temperature."},
	{"terms-change-open", 409, "A change of terms is open", "Sharers have yet to consent to another rule for this kit. Wait for them, or withdraw the change."},
	{"too-large", 413, "Too large", "A request's body may have 1 MiB at most."},
	{"too-many-attempts", 429, "Too many wrong passwords", "Several wrong passwords came in a row for this address. Wait as long as Retry-After says, or sign in by a code."},
	{"too-many-feeds", 409, "Enough feeds", "A member has ten calendar feeds at most. End one first."},
	{"too-many-hooks", 409, "Enough web hooks", "A lab has twenty web hooks at most. Remove one first."},
	{"too-many-in-booking", 422, "Too many rolls in one booking", "A booking has 100 rolls at most."},
	{"too-many-requests", 429, "Too many requests", "One address and one member may ask so much in a minute; RateLimit-Policy says how much, RateLimit what is left. Wait as long as Retry-After states."},
	{"too-many-rolls", 409, "Too many rolls for one plan", "More rolls wait than one plan takes. Plan a shorter span of days."},
	{"too-many-streams", 429, "Too many streams open", "A member may have a few streams of events open at a time, a server a thousand in all. Close one, or wait as long as Retry-After states."},
	{"trial-only", 400, "Only in a trial", "Trial-Time sets the clock of one request, and works only where the server runs as a trial."},
	{"two-kits", 409, "Two kits in one bath", "A bath is mixed of, and topped up from, one kit: otherwise nobody could say what it carries, how long it lasts, or who pays for it."},
	{"unauthenticated", 401, "Who is asking?", "This takes a bearer token: sign in, or renew the one you had. WWW-Authenticate says what was wrong with the one that came, if one did."},
	{"unserviceable-roll", 422, "The lab cannot develop this roll", "No tank, reel and process of this lab can take the roll. Each error says what is missing."},
	{"unsupported-media-type", 415, "Not in that media type", "A body comes as application/json; charset must be UTF-8. Changes (PATCH) come as application/merge-patch+json."},
	{"waiting-ended", 409, "The wait has ended", "This entry is on the waiting list no more; its status says why."},
	{"wrong-currency", 422, "Not the lab's currency", "A lab keeps its books in one currency, and all its money is in that."},
}

// titleOf is a problem's title; unknown codes take the status's text.
func titleOf(code string, status int) string {
	if i := slices.IndexFunc(problemTypes, func(t problemType) bool { return t.Code == code }); i >= 0 {
		return problemTypes[i].Title
	}
	return http.StatusText(status)
}

var problemPage = template.Must(template.New("problem").Parse(`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>{{.Title}} – Wetside</title>
<style>body{font:1.05rem/1.5 system-ui,sans-serif;max-width:40rem;margin:3rem auto;padding:0 1rem;color:#222;background:#fff}code{background:#eee;padding:0 .25em}</style>
</head>
<body>
<h1>{{.Title}}</h1>
<p><code>{{.Code}}</code></p>
<p>{{.Explanation}}</p>
<p><a href="/">The API</a></p>
</body>
</html>
`))
