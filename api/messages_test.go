package api_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5"

	"wetside/api/apitest"
	"wetside/lab"
	"wetside/lab/database"
	"wetside/lab/telling"
)

// tell tells a member something, as a use case would.
func tell(t *testing.T, s *apitest.Server, c *apitest.Client, about string) {
	t.Helper()
	err := database.NewStore(s.Pool, nil).InTx(t.Context(), database.Writing, c.LabID, func(tx pgx.Tx) error {
		scope := lab.Scope{Lab: lab.Lab{ID: c.LabID}, Now: time.Now().UTC().Truncate(time.Microsecond)}
		return telling.Tell(t.Context(), tx, scope, telling.Notice{Kind: telling.FilmDry, To: []string{c.MemberID}, About: about,
			Words: map[string]string{"rolls": "One roll", "when": "Monday"}})
	})
	if err != nil {
		t.Fatal(err)
	}
}

type messages struct {
	Items []telling.Message `json:"items"`
	Next  string            `json:"next_cursor"`
}

func TestMessagesComeUnreadFirst(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Basement")
	ann, bea := s.Join(t, keeper, "Ann Osier"), s.Join(t, keeper, "Bea Stroud")
	for i := range 5 {
		tell(t, s, ann, fmt.Sprintf("run_%d", i))
	}
	tell(t, s, bea, "run_bea")
	about := func(c *apitest.Client, query string) (all []string) {
		path := c.Path("messages") + query
		for path != "" {
			var page messages
			r := c.Get(path).Want(200).Into(&page)
			for _, m := range page.Items {
				all = append(all, *m.About)
			}
			path = ""
			if link := r.Header("Link"); link != "" {
				path = strings.TrimPrefix(strings.SplitN(link, ">", 2)[0], "<")
			}
		}
		return all
	}
	if diff := cmp.Diff([]string{"run_4", "run_3", "run_2", "run_1", "run_0"}, about(ann, "?limit=2")); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
	var page messages
	ann.Get(ann.Path("messages")).Into(&page)
	var read telling.Message
	ann.Post(ann.Path("messages", page.Items[1].ID, "reading"), nil).Want(200).Into(&read)
	again := ann.Post(ann.Path("messages", page.Items[1].ID, "reading"), nil).Want(200)
	var twice telling.Message
	if again.Into(&twice); read.ReadAt == nil || !read.ReadAt.Equal(*twice.ReadAt) {
		t.Errorf("read at %v, then at %v", read.ReadAt, twice.ReadAt)
	}
	if diff := cmp.Diff([]string{"run_4", "run_2", "run_1", "run_0", "run_3"}, about(ann, "?limit=2")); diff != "" {
		t.Errorf("after one was read (want -, got +):\n%s", diff)
	}
	var marked telling.MarkedRead
	ann.Post(ann.Path("messages", "reading"), map[string]any{"message": page.Items[2].ID}).Want(200).Into(&marked)
	if marked.Count != 3 || cmp.Diff([]string{"run_4", "run_3", "run_2", "run_1", "run_0"}, about(ann, "")) != "" {
		t.Errorf("%d marked, %v", marked.Count, about(ann, ""))
	}
	// Nobody reads another's.
	bea.Post(bea.Path("messages", page.Items[0].ID, "reading"), nil).WantProblem(404, "not-found")
	keeper.Post(keeper.Path("messages", page.Items[0].ID, "reading"), nil).WantProblem(404, "not-found")
	if got := about(bea, ""); cmp.Diff([]string{"run_bea"}, got) != "" {
		t.Errorf("bea reads %v", got)
	}
}

func TestMembersChooseHowTheyHear(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	ann := s.Join(t, s.Found(t, "Basement"), "Ann Osier")
	var wishes struct{ Items []telling.Wish }
	ann.Get(ann.Path("notice-wishes")).Want(200).Into(&wishes)
	if len(wishes.Items) < 15 {
		t.Fatalf("%d kinds of notices", len(wishes.Items))
	}
	choose := func(kind string, message, mail bool) *apitest.Response {
		return ann.Do(http.MethodPut, ann.Path("notice-wishes", kind), map[string]any{"message": message, "mail": mail})
	}
	choose("film-dry", false, false).Want(200)
	tell(t, s, ann, "run_1")
	var page messages
	if ann.Get(ann.Path("messages")).Into(&page); len(page.Items) != 0 {
		t.Errorf("told although they chose not to be: %+v", page.Items)
	}
	choose("film-dry", true, false).Want(200)
	tell(t, s, ann, "run_2")
	if ann.Get(ann.Path("messages")).Into(&page); len(page.Items) != 1 {
		t.Errorf("%d messages", len(page.Items))
	}
	choose("sign-in-changed", false, false).WantProblem(422, "invalid")
	choose("nothing-such", true, true).WantProblem(404, "not-found")
}

func TestHooksAreTheStewards(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Basement")
	steward, ann := s.Join(t, keeper, "Sol Farrow", lab.RoleSteward), s.Join(t, keeper, "Ann Osier")
	ann.Get(ann.Path("hooks")).WantProblem(403, "forbidden")
	var made telling.HookSecret
	added := steward.Post(steward.Path("hooks"), map[string]any{"url": "https://example.org/in"}).Want(201)
	added.Into(&made)
	one := steward.Path("hooks", made.Hook.ID)
	if added.Header("Location") != one || !strings.HasPrefix(made.Secret, "whsec_") {
		t.Errorf("added at %s, secret %s", added.Header("Location"), made.Secret)
	}
	for _, path := range []string{one, steward.Path("hooks"), one + "/deliveries"} {
		if got := steward.Get(path).Want(200); strings.Contains(string(got.Body), "whsec_") || strings.Contains(string(got.Body), strings.TrimPrefix(made.Secret, "whsec_")) {
			t.Errorf("%s shows the secret: %s", path, got.Body)
		}
	}
	var renewed telling.HookSecret
	steward.Post(one+"/secrets", nil).Want(201).Into(&renewed)
	if renewed.Secret == made.Secret || renewed.Hook.FormerUntil == nil {
		t.Errorf("rotated to %+v", renewed)
	}
	steward.Post(one+"/pings", nil).Want(200)
	var log struct{ Items []telling.Delivery }
	if steward.Get(one + "/deliveries").Want(200).Into(&log); len(log.Items) != 1 || log.Items[0].Kind != "ping" {
		t.Errorf("the log says %+v", log.Items)
	}
	steward.Post(one+"/enabling", nil).Want(200)
	other := s.Found(t, "Attic")
	other.Get(other.Path("hooks", made.Hook.ID)).WantProblem(404, "not-found")
	steward.Delete(one, `"v1"`).WantProblem(412, "stale")
	steward.Delete(one, steward.Get(one).ETag()).Want(204)
	steward.Get(one).WantProblem(404, "not-found")
	steward.Post(steward.Path("hooks"), map[string]any{"url": "https://example.org/in", "kinds": []string{"ping-pong"}}).WantProblem(422, "invalid")
}
