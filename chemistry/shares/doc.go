// Package shares says who pays for what: it keeps the lab's books, charges
// runs, shares a kit's price when the kit is closed, and finds the payments
// that settle everybody's balance.
//
// The books are double-entry and append-only; the database itself refuses an
// entry that does not balance, lines added to one of before, an entry in a month
// that is closed, and any change of what is written. A positive amount is a
// debit: what a member owes the co-op, or what a kit has cost and nobody has been
// charged for. Buying a kit debits the kit and credits whoever paid; a finished
// run debits the members whose rolls were in it and credits the kit,
// provisionally; closing the kit posts the difference between each member's
// final share and what was charged before, after which the kit's account is
// zero. A payment that its payee confirms credits the payer and debits the payee.
// What is wrong is reversed, with the reason, and entered anew. The sum over all
// accounts is zero at all times.
//
// How a kit is shared is fixed when it is first used: its terms. After that they
// change by every sharer's consent alone.
//
// Each entry keeps what it was reckoned from, so that Explain can show the
// arithmetic of any posting.
//
// Apportion, Close, Judge, Foresee and Settle are pure: values in, values out.
// All amounts are whole minor units of the lab's currency and all areas whole mm².
package shares
