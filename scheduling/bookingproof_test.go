package scheduling_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"testing"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
	"wetside/scheduling"
)

// Whether rolls have places is a matter of which they are and where, not of who
// came first: what was accepted in one order is in every other, and with one roll
// more that was refused it is in none. A proof that said no where there was a
// plan, or yes where there was none, would differ by the order.
func TestWhatFitsDoesNotDependOnWhoCameFirst(t *testing.T) {
	b := newBench(t)
	random := rand.New(rand.NewPCG(4, 12))
	kinds := map[string][]string{
		"cine-8-15m": b.rolls(b.ana, 9, "cine-8-15m", "reversal-3"),
		"135-36":     b.rolls(b.ana, 9, "135-36", "reversal-3"),
	}
	undone := errors.New("undone")
	// together books one roll after another, as long as they fit, and undoes it all.
	together := func(wishes []scheduling.NewBooking) (fit int) {
		err := b.in(func(ctx context.Context, tx pgx.Tx) error {
			for _, w := range wishes {
				_, err := scheduling.Book(ctx, tx, b.ana, w)
				if lab.RefusalCode(err) == "does-not-fit" {
					break
				}
				if err != nil {
					return err
				}
				fit++
			}
			return undone
		})
		if !errors.Is(err, undone) {
			t.Fatal(err)
		}
		return fit
	}
	refused, orders := 0, 0
	for range 25 {
		var wishes []scheduling.NewBooking
		for _, ids := range kinds {
			for _, id := range ids {
				// Mostly one session, so that its time and reels run out, not only the bath.
				wishes = append(wishes, booked(b.sessions[random.IntN(4)%3].ID, id))
			}
		}
		random.Shuffle(len(wishes), func(i, j int) { wishes[i], wishes[j] = wishes[j], wishes[i] })
		n := together(wishes)
		if n == len(wishes) {
			continue
		}
		refused++
		for range 3 {
			accepted, all := append([]scheduling.NewBooking{}, wishes[:n]...), append([]scheduling.NewBooking{}, wishes[:n+1]...)
			random.Shuffle(n, func(i, j int) { accepted[i], accepted[j] = accepted[j], accepted[i] })
			random.Shuffle(n+1, func(i, j int) { all[i], all[j] = all[j], all[i] })
			orders += 2
			if got := together(accepted); got != n {
				t.Errorf("of %d rolls that fit, %d do in another order", n, got)
			}
			if together(all) == n+1 {
				t.Errorf("%d rolls do not fit, and do in another order", n+1)
			}
		}
	}
	t.Logf("%d sets of rolls, one more than fit each, in %d other orders", refused, orders)
	if refused < 20 {
		t.Error("hardly anything was refused")
	}
}
