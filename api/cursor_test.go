package api_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

func TestListsComeInPages(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	const count = 7
	for i := range count {
		keeper.Post(keeper.Path("cabinets"), map[string]any{"name": fmt.Sprint("Cabinet ", i), "positions": 1, "drop_mm": 1700, "drying": "PT4H"}).Want(http.StatusCreated)
	}
	link := regexp.MustCompile(`^<(/[^>]+)>; rel="next"$`)
	seen := map[string]bool{}
	pages := 0
	var second string
	for path := keeper.Path("cabinets") + "?limit=3"; path != ""; pages++ {
		r := keeper.Get(path).Want(http.StatusOK)
		list := apitest.As[lab.List[lab.Cabinet]](r)
		for _, c := range list.Items {
			if seen[c.ID] {
				t.Errorf("%s comes twice", c.Name)
			}
			seen[c.ID] = true
		}
		path = ""
		if m := link.FindStringSubmatch(r.Header("Link")); m != nil {
			path = m[1]
		}
		if (path == "") != (list.NextCursor == "") {
			t.Errorf("Link %q and next_cursor %q differ", r.Header("Link"), list.NextCursor)
		}
		if pages == 0 {
			second = list.NextCursor
		}
	}
	if len(seen) != count || pages != 3 {
		t.Errorf("saw %d of %d in %d pages", len(seen), count, pages)
	}
	// A cursor belongs to its list alone.
	keeper.Get(keeper.Path("tanks")+"?cursor="+second).WantProblem(http.StatusBadRequest, "malformed")
	keeper.Get(keeper.Path("cabinets") + "?limit=1&cursor=" + second).Want(http.StatusOK)
}

func FuzzCursor(f *testing.F) {
	path, query := "/v1/labs/x/rolls", url.Values{"status": {"ready"}}
	f.Add(api.SignCursor(path, query, "roll_1"))
	f.Add("")
	f.Add("AAAA")
	f.Fuzz(func(t *testing.T, cursor string) {
		q := url.Values{"status": {"ready"}, "cursor": {cursor}}
		page, err := api.PageOf(path, q)
		if err != nil || cursor == "" {
			return
		}
		plain := strings.NewReplacer("\r", "", "\n", "").Replace(cursor) // which base64 skips
		if made := api.SignCursor(path, query, page.After); made != plain {
			t.Errorf("%q is taken, but what we make is %q", cursor, made)
		}
		q.Set("status", "spoiled")
		if _, err := api.PageOf(path, q); err == nil {
			t.Errorf("%q is taken with other filters", cursor)
		}
	})
}
