// Package loadtest has bookings made by many clients at once, over HTTP: for the
// last place, at random while servers and connections are killed, and as fast
// as they go.
package loadtest
