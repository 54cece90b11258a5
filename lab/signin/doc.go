// Package signin is how members get in: passwords, invitations, codes by mail,
// an OpenID provider of the co-op's own, and what they then hold: a sign-in for
// each device, with a refresh token that changes at every use. It also keeps
// the keys that access tokens are signed with.
//
// Every instant here is the real one, never a trial's: what is secret expires
// by the clock on the wall. What a caller may not learn (whether an address is
// somebody's) is not told by refusals either: such functions say ok or not.
package signin
