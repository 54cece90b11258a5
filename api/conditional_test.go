package api_test

import (
	"net/http"
	"strings"
	"testing"

	"wetside/api"
	"wetside/api/apitest"
	"wetside/lab"
)

func TestChangesNeedWhatWasSeen(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	path := keeper.Do(http.MethodPost, keeper.Path("cabinets"), cabinet).Want(http.StatusCreated).Header("Location")
	tag := keeper.Get(path).ETag()
	change := map[string]any{"out_of_order": true}

	keeper.Do(http.MethodPatch, path, change).WantProblem(http.StatusPreconditionRequired, "precondition-required")
	keeper.Patch(path, tag, change).Want(http.StatusOK)
	keeper.Patch(path, tag, change).WantProblem(http.StatusPreconditionFailed, "stale")
	keeper.Patch(path, "W/"+keeper.Get(path).ETag(), change).WantProblem(http.StatusPreconditionFailed, "stale")
	keeper.Patch(path, `"v1", "other,v9", `+keeper.Get(path).ETag(), change).Want(http.StatusOK)
	keeper.Patch(path, "*", change).Want(http.StatusOK)
	keeper.Patch(keeper.Path("cabinets", "cabinet_"+strings.Repeat("0", 32)), "*", change).WantProblem(http.StatusNotFound, "not-found")
	if c := apitest.As[lab.Cabinet](keeper.Get(path)); !c.OutOfOrder || c.Name != "By the window" {
		t.Errorf("cabinet is %+v", c)
	}
}

func TestUnchangedNeedsNoBody(t *testing.T) {
	t.Parallel()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	tag := keeper.Get(keeper.Path()).ETag()
	for _, header := range []string{tag, "W/" + tag, `"x", ` + tag, "*"} {
		r := keeper.With("If-None-Match", header).Get(keeper.Path()).Want(http.StatusNotModified)
		if len(r.Body) != 0 || r.ETag() != tag {
			t.Errorf("%s: body %q, ETag %s", header, r.Body, r.ETag())
		}
	}
	// Equipment counts up schedule_version, which the lab shows, but is no
	// change of the lab's own record: the tag differs, and If-Match holds.
	keeper.Do(http.MethodPost, keeper.Path("cabinets"), cabinet).Want(http.StatusCreated)
	keeper.With("If-None-Match", tag).Get(keeper.Path()).Want(http.StatusOK)
	keeper.Patch(keeper.Path(), tag, map[string]any{"name": "Sallowmere"}).Want(http.StatusOK)
}

func FuzzPrecondition(f *testing.F) {
	for _, s := range []string{`"v3"`, `*`, `W/"v3"`, `"v1","v3-0123456789ab"`, `"`, `"v03"`, `"v3`, `,,`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, header string) {
		err := api.Precondition([]string{header}, 3)
		if err == nil && !strings.Contains(header, `"v3`) && !strings.Contains(header, "*") {
			t.Errorf("%q passes for revision 3", header)
		}
	})
}
