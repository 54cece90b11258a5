package api

import (
	"context"
	"net/http"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

func bookingOperations() []operation {
	const bookings, booking = "/v1/labs/:lab/bookings", "/v1/labs/:lab/bookings/:booking"
	const rules = "/v1/labs/:lab/booking-rules"
	steward := holders(lab.RoleSteward)
	return []operation{
		{ID: "book", Method: http.MethodPost, Path: bookings, Who: members, Handle: body(book)},
		{ID: "listBookings", Method: http.MethodGet, Path: bookings, Who: members, Handle: listBookings},
		{ID: "getBooking", Method: http.MethodGet, Path: booking, Who: members, Handle: getBooking},
		{ID: "updateBooking", Method: http.MethodPatch, Path: booking, Who: members, IfMatch: getBooking, Handle: body(updateBooking)},
		{ID: "confirmBooking", Method: http.MethodPost, Path: booking + "/confirmation", Who: members, IfMatch: getBooking, Handle: confirmBooking},
		{ID: "cancelBooking", Method: http.MethodPost, Path: booking + "/cancellation", Who: members, IfMatch: getBooking, Handle: cancelBooking},
		{ID: "recordNoShow", Method: http.MethodPost, Path: booking + "/no-show", Who: steward, IfMatch: getBooking, Handle: recordNoShow},
		{ID: "getBookingRules", Method: http.MethodGet, Path: rules, Who: members, Handle: getBookingRules},
		{ID: "updateBookingRules", Method: http.MethodPatch, Path: rules, Who: holders(lab.RoleSteward, lab.RoleKeeper), IfMatch: getBookingRules, Handle: body(updateBookingRules)},
		{ID: "getBookingRecord", Method: http.MethodGet, Path: "/v1/labs/:lab/members/:member/booking-record", Who: members, Handle: getBookingRecord},
		{ID: "removeStrike", Method: http.MethodDelete, Path: "/v1/labs/:lab/strikes/:strike", Who: steward, Handle: removeStrike},
	}
}

func book(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request, in scheduling.NewBooking) (Answer, error) {
	b, err := scheduling.Book(ctx, tx, s, in)
	if err != nil {
		return Answer{}, err
	}
	return Created("/v1/labs/"+s.Lab.ID+"/bookings/"+b.ID, b), nil
}

func listBookings(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return listed(scheduling.ListBookings(ctx, tx, s, r.Query("session"), r.Page()))
}

func getBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindBooking(ctx, tx, s, r.Path("booking")))
}

func cancelBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.CancelBooking(ctx, tx, s, r.Path("booking"), r.Version()))
}

func updateBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in scheduling.BookingChange) (Answer, error) {
	return reply(scheduling.ChangeBooking(ctx, tx, s, r.Path("booking"), r.Version(), in))
}

func confirmBooking(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.ConfirmBooking(ctx, tx, s, r.Path("booking"), r.Version()))
}

func recordNoShow(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.RecordNoShow(ctx, tx, s, r.Path("booking"), r.Version()))
}

func getBookingRules(ctx context.Context, tx pgx.Tx, s lab.Scope, _ Request) (Answer, error) {
	return reply(scheduling.ReadBookingRules(ctx, tx, s.Lab.ID))
}

func updateBookingRules(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request, in scheduling.BookingRulesChange) (Answer, error) {
	return reply(scheduling.ChangeBookingRules(ctx, tx, s, r.Version(), in))
}

func getBookingRecord(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	return reply(scheduling.FindBookingRecord(ctx, tx, s, r.Path("member")))
}

func removeStrike(ctx context.Context, tx pgx.Tx, s lab.Scope, r Request) (Answer, error) {
	if err := scheduling.RemoveStrike(ctx, tx, s, r.Path("strike")); err != nil {
		return Answer{}, err
	}
	return NoContent(), nil
}
