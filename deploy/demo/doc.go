// Package demo is an invented co-op and a few weeks of its life, told to a
// running Wetside by HTTP calls alone: the story that the acceptance test plays
// and that "wetside demo" loads for looking around.
//
// All dates count from the coming Monday, in the lab's zone, so that the demo
// does not age: earlier weeks are lived through with the header Trial-Time, and
// end before today. Every step that is answered otherwise than the story needs
// stops it with an error that names the call and the problem.
package demo
