// Package scheduling keeps the lab's time: what members hand in, the sessions
// that tanks are open for, who holds a place in them, the plans that make
// batches of it, and the runs that come of those.
//
// Every write first locks the lab's row (lab.Lock), so that the changes of one
// lab happen one after another, in one order: what a booking was proved against
// cannot move under it, and the sessions' exclusion constraint never has two
// waiters. Whatever planning depends on ends in lab.Touch, which makes plans
// computed before it stale.
//
// How rolls go together is decided in the pure package planner; here a
// [planner.Problem] is read from the database, and its plan written back.
package scheduling
