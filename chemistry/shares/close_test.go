package shares_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"wetside/chemistry/shares"
)

// roll is the area of one roll-equivalent, 80 square inches.
const roll = 51613

// brief is a share as the tables state it: who, used, unused.
type brief struct {
	member       string
	used, unused int64
}

func briefs(c shares.Closing) []brief {
	out := []brief{}
	for _, s := range c.Shares {
		out = append(out, brief{s.Member, s.Used, s.Unused})
	}
	return out
}

func TestClose(t *testing.T) {
	t.Parallel()
	use := func(m string, area int64) shares.Use { return shares.Use{Member: m, AreaMM2: area} }
	spoiled := func(area int64) shares.Use { return shares.Use{AreaMM2: area, Spoiled: true} }
	terms := func(rule shares.Rule, unused shares.FallsOn, subscribers ...string) shares.Terms {
		return shares.Terms{Price: 6000, RatedAreaMM2: 12 * roll, Rule: rule, UnusedFallsOn: unused, Subscribers: subscribers}
	}
	// Ann has used 4 roll-equivalents in three rolls, Bea 2 in one; 6 of 12 are left.
	half := []shares.Use{use("ann", roll), use("bea", 2*roll), use("ann", 2*roll), use("ann", roll)}
	tests := []struct {
		name  string
		terms shares.Terms
		uses  []shares.Use
		want  []brief
	}{
		{"by area, unused on the users by area", terms(shares.ByArea, shares.Users), half,
			[]brief{{"ann", 2000, 2000}, {"bea", 1000, 1000}}},
		{"by area, unused on the subscribers alike", terms(shares.ByArea, shares.Subscribers, "cyn", "ann"), half,
			[]brief{{"ann", 2000, 1500}, {"bea", 1000, 0}, {"cyn", 0, 1500}}},
		{"by area, unused on the fund", terms(shares.ByArea, shares.Fund), half,
			[]brief{{"ann", 2000, 0}, {"bea", 1000, 0}, {"", 0, 3000}}},
		{"by roll, unused on the users by roll", terms(shares.ByRoll, shares.Users), half,
			[]brief{{"ann", 2250, 2250}, {"bea", 750, 750}}},
		{"by roll, unused on the subscribers alike", terms(shares.ByRoll, shares.Subscribers, "ann", "bea", "cyn"), half,
			[]brief{{"ann", 2250, 1000}, {"bea", 750, 1000}, {"cyn", 0, 1000}}},
		{"by roll, unused on the fund", terms(shares.ByRoll, shares.Fund), half,
			[]brief{{"ann", 2250, 0}, {"bea", 750, 0}, {"", 0, 3000}}},
		{"equally among the subscribers, unused on the users alike", terms(shares.Equally, shares.Users, "ann", "cyn"), half,
			[]brief{{"ann", 1500, 1500}, {"bea", 0, 1500}, {"cyn", 1500, 0}}},
		{"equally among the subscribers, unused too", terms(shares.Equally, shares.Subscribers, "ann", "cyn"), half,
			[]brief{{"ann", 1500, 1500}, {"bea", 0, 0}, {"cyn", 1500, 1500}}},
		{"equally among the users without subscribers, unused on the fund", terms(shares.Equally, shares.Fund), half,
			[]brief{{"ann", 1500, 0}, {"bea", 1500, 0}, {"", 0, 3000}}},
		{"no subscribers to bear it: the fund does", terms(shares.ByArea, shares.Subscribers), half,
			[]brief{{"ann", 2000, 0}, {"bea", 1000, 0}, {"", 0, 3000}}},
		{"spoiled film falls like the unused part", terms(shares.ByArea, shares.Fund),
			[]shares.Use{use("ann", 4*roll), spoiled(2 * roll)},
			[]brief{{"ann", 2000, 0}, {"", 0, 4000}}},
		{"more used than rated: nothing is unused", terms(shares.ByArea, shares.Fund),
			[]shares.Use{use("ann", 10*roll), use("bea", 5*roll)},
			[]brief{{"ann", 4000, 0}, {"bea", 2000, 0}}},
		{"more used than rated, some of it spoiled", terms(shares.ByArea, shares.Fund),
			[]shares.Use{use("ann", 10*roll), spoiled(5 * roll)},
			[]brief{{"ann", 4000, 0}, {"", 0, 2000}}},
		{"never used: users are none, the subscribers bear it", terms(shares.ByArea, shares.Users, "cyn", "ann", "cyn"), nil,
			[]brief{{"ann", 0, 3000}, {"cyn", 0, 3000}}},
		{"never used, no subscribers: the fund bears it", terms(shares.ByRoll, shares.Users), nil,
			[]brief{{"", 0, 6000}}},
		{"never used, falls on the fund whoever subscribes", terms(shares.Equally, shares.Fund, "ann"), nil,
			[]brief{{"", 0, 6000}}},
		{"all spoiled: nobody is a user", terms(shares.ByArea, shares.Users, "cyn"), []shares.Use{spoiled(12 * roll)},
			[]brief{{"cyn", 0, 6000}}},
		{"a cent that does not divide goes to the largest loss",
			shares.Terms{Price: 100, RatedAreaMM2: 3, Rule: shares.ByArea, UnusedFallsOn: shares.Users},
			[]shares.Use{use("ann", 1), use("bea", 1), use("cyn", 1)},
			[]brief{{"ann", 34, 0}, {"bea", 33, 0}, {"cyn", 33, 0}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := shares.Close(tt.terms, tt.uses)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, briefs(got), cmp.AllowUnexported(brief{})); diff != "" {
				t.Errorf("want -, got +:\n%s", diff)
			}
		})
	}
}

func TestCloseStatesAreas(t *testing.T) {
	t.Parallel()
	k := shares.Terms{Price: 6000, RatedAreaMM2: 12 * roll, Rule: shares.ByArea, UnusedFallsOn: shares.Fund}
	c, err := shares.Close(k, []shares.Use{{Member: "ann", AreaMM2: 4 * roll}, {AreaMM2: 2 * roll, Spoiled: true}})
	if err != nil {
		t.Fatal(err)
	}
	want := shares.Closing{
		Rule: shares.ByArea, UnusedFallsOn: shares.Fund, SpoiledFallsOn: shares.AsUnused,
		RatedAreaMM2: 12 * roll, UsedAreaMM2: 4 * roll, SpoiledAreaMM2: 2 * roll, UnusedMinor: 4000, SpoiledMinor: 1000,
		Shares: []shares.Share{
			{Member: "ann", Rolls: 1, AreaMM2: 4 * roll, Used: 2000, Total: 2000, Provisional: 1900, Adjustment: 100},
			{Member: "zoe", Provisional: 50, Adjustment: -50},
			{Unused: 4000, Total: 4000, Adjustment: 4000},
		},
	}
	if diff := cmp.Diff(want, c.Against(map[string]int64{"zoe": 50, "ann": 1900})); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
}

func TestCloseRefuses(t *testing.T) {
	t.Parallel()
	good := shares.Terms{Price: 1, RatedAreaMM2: 1, Rule: shares.ByArea, UnusedFallsOn: shares.Fund}
	with := func(change func(*shares.Terms)) shares.Terms {
		k := good
		change(&k)
		return k
	}
	tests := []struct {
		name string
		k    shares.Terms
		uses []shares.Use
		want error
	}{
		{"no price", with(func(k *shares.Terms) { k.Price = 0 }), nil, shares.ErrTerms},
		{"a price past all bounds", with(func(k *shares.Terms) { k.Price = math.MaxInt64 }), nil, shares.ErrTerms},
		{"no rated area", with(func(k *shares.Terms) { k.RatedAreaMM2 = 0 }), nil, shares.ErrTerms},
		{"no rule", with(func(k *shares.Terms) { k.Rule = "" }), nil, shares.ErrTerms},
		{"unused falls on nobody", with(func(k *shares.Terms) { k.UnusedFallsOn = "others" }), nil, shares.ErrTerms},
		{"a subscriber without an id", with(func(k *shares.Terms) { k.Subscribers = []string{""} }), nil, shares.ErrTerms},
		{"a roll without area", good, []shares.Use{{Member: "ann"}}, shares.ErrUse},
		{"a roll of nobody", good, []shares.Use{{AreaMM2: 1}}, shares.ErrUse},
		{"areas past all bounds", good, []shares.Use{{Member: "a", AreaMM2: 1}, {Member: "a", AreaMM2: math.MaxInt64}}, shares.ErrUse},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got, err := shares.Close(tt.k, tt.uses); !errors.Is(err, tt.want) {
				t.Errorf("Close = %+v, %v; want %v", got, err, tt.want)
			}
		})
	}
}

func sharesAddUp(t *testing.T) {
	member := rapid.Custom(func(t *rapid.T) string { return fmt.Sprintf("mem_%d", rapid.IntRange(1, 8).Draw(t, "n")) })
	use := rapid.Custom(func(t *rapid.T) shares.Use {
		return shares.Use{
			Member:  member.Draw(t, "member"),
			AreaMM2: rapid.Int64Range(1, 3*roll).Draw(t, "area"),
			Spoiled: rapid.IntRange(0, 5).Draw(t, "spoiled") == 0,
			Free:    rapid.IntRange(0, 7).Draw(t, "free") == 0,
		}
	})
	check(t, func(t *rapid.T) {
		k := shares.Terms{
			Price:         rapid.Int64Range(1, 20000).Draw(t, "price"),
			RatedAreaMM2:  rapid.Int64Range(1, 20*roll).Draw(t, "rated"),
			Rule:          rapid.SampledFrom([]shares.Rule{shares.ByArea, shares.ByRoll, shares.Equally, shares.Weighted}).Draw(t, "rule"),
			UnusedFallsOn: rapid.SampledFrom([]shares.FallsOn{shares.Users, shares.Subscribers, shares.Fund}).Draw(t, "on"),
			SpoiledFallsOn: rapid.SampledFrom([]shares.SpoiledFallsOn{
				"", shares.AsUnused, shares.OnSharers, shares.SpoiledFund}).Draw(t, "spoiled on"),
			Subscribers: rapid.SliceOfN(member, 0, 6).Draw(t, "subscribers"),
			Weights:     rapid.MapOfN(member, rapid.Int64Range(1, 9), 0, 6).Draw(t, "weights"),
		}
		uses := rapid.SliceOfN(use, 0, 15).Draw(t, "uses")
		c, err := shares.Close(k, uses)
		if err != nil {
			t.Fatal(err)
		}
		var total, unused, rolls, area int64
		seen := map[string]bool{}
		for _, s := range c.Shares {
			if s.Used < 0 || s.Unused < 0 || s.Spoiled < 0 || s.Used+s.Unused+s.Spoiled != s.Total || seen[s.Member] {
				t.Fatalf("share %+v of %+v", s, c.Shares)
			}
			seen[s.Member] = true
			total, unused, rolls, area = total+s.Total, unused+s.Unused+s.Spoiled, rolls+s.Rolls, area+s.AreaMM2
		}
		var wantRolls, wantArea, spoiledArea int64
		for _, u := range uses {
			if u.Spoiled {
				spoiledArea += u.AreaMM2
			} else {
				wantRolls, wantArea = wantRolls+1, wantArea+u.AreaMM2
			}
		}
		if total != k.Price || unused != c.UnusedMinor || rolls != wantRolls || area != wantArea {
			t.Fatalf("price %d, rolls %d, area %d: %+v", k.Price, wantRolls, wantArea, c)
		}
		// The used part is within one unit of price × used ÷ max(rated, used and spoiled).
		all := max(k.RatedAreaMM2, wantArea+spoiledArea)
		if d := (k.Price-unused)*all - k.Price*wantArea; d <= -all || d >= all {
			t.Fatalf("used part %d of %d for %d of %d mm²", k.Price-unused, k.Price, wantArea, all)
		}
		if wantArea+spoiledArea >= k.RatedAreaMM2 && spoiledArea == 0 && unused != 0 {
			t.Fatalf("all was used, yet %d is unused", unused)
		}
		moved, err := shares.Close(k, rapid.Permutation(uses).Draw(t, "moved"))
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(c, moved); diff != "" {
			t.Fatalf("the order of uses matters:\n%s", diff)
		}
		// Whatever was charged before, the adjustments are what is left of the price.
		before := map[string]int64{}
		var charged, adjusted int64
		for _, m := range rapid.SliceOfNDistinct(member, 0, 8, func(m string) string { return m }).Draw(t, "charged") {
			before[m] = rapid.Int64Range(-500, 5000).Draw(t, "provisional")
			charged += before[m]
		}
		for _, s := range c.Against(before).Shares {
			adjusted += s.Adjustment
		}
		if charged+adjusted != k.Price {
			t.Fatalf("charged %d, adjusted %d, price %d", charged, adjusted, k.Price)
		}
	})
}

// By area with all of it used, nobody's share is a whole unit from what the area says.
func sharesByAreaAreFair(t *testing.T) {
	check(t, func(t *rapid.T) {
		areas := rapid.SliceOfN(rapid.Int64Range(1, 3*roll), 1, 10).Draw(t, "areas")
		var all int64
		uses := []shares.Use{}
		for i, a := range areas {
			uses = append(uses, shares.Use{Member: fmt.Sprintf("mem_%02d", i), AreaMM2: a})
			all += a
		}
		price := rapid.Int64Range(1, 20000).Draw(t, "price")
		k := shares.Terms{Price: price, RatedAreaMM2: all, Rule: shares.ByArea, UnusedFallsOn: shares.Users}
		c, err := shares.Close(k, uses)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range c.Shares {
			if d := s.Total*all - price*areas[i]; d <= -all || d >= all {
				t.Fatalf("%+v of %d for %d of %d mm²", s, price, areas[i], all)
			}
		}
		if !slices.IsSortedFunc(c.Shares, func(a, b shares.Share) int {
			if a.Member < b.Member {
				return -1
			}
			return 1
		}) {
			t.Fatalf("not in the order of ids: %+v", c.Shares)
		}
	})
}
