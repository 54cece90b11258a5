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
	return []operation{
		{ID: "book", Method: http.MethodPost, Path: bookings, Who: members, Handle: body(book)},
		{ID: "listBookings", Method: http.MethodGet, Path: bookings, Who: members, Handle: listBookings},
		{ID: "getBooking", Method: http.MethodGet, Path: booking, Who: members, Handle: getBooking},
		{ID: "cancelBooking", Method: http.MethodPost, Path: booking + "/cancellation", Who: members, IfMatch: getBooking, Handle: cancelBooking},
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
