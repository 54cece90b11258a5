package api_test

import (
	"net/http"
	"testing"
	"time"

	"wetside/api/apitest"
	"wetside/chemistry"
	"wetside/lab"
	"wetside/scheduling"
)

// mixedSet is a six-bath set, mixed now, and a client of its steward.
func mixedSet(t *testing.T, change func(map[string]any, []map[string]any)) (*apitest.Client, chemistry.BathSet) {
	t.Helper()
	s := apitest.Start(t)
	keeper := s.Found(t, "Sallowmere Film Co-op")
	steward := s.Join(t, keeper, "Ana Quay", lab.RoleSteward, lab.RoleTreasurer)
	keeper.Do(http.MethodPost, keeper.Path("reel-kinds"), `{"code":"spiral-35","name":"Spiral","count":4,"height_mm":40,"solution_ml":300}`).Want(http.StatusCreated)
	kit := sixBaths()
	change(kit, kit["baths"].([]map[string]any))
	bought := apitest.As[chemistry.Kit](steward.Post(steward.Path("kits"), kit).Want(http.StatusCreated))
	return steward, apitest.As[chemistry.BathSet](steward.Post(steward.Path("bath-sets"),
		map[string]any{"kit": bought.ID, "storage": map[string]any{"full_permille": 750, "seal": "airtight"}}).Want(http.StatusCreated))
}

func TestABathsLife(t *testing.T) {
	t.Parallel()
	steward, set := mixedSet(t, func(_ map[string]any, baths []map[string]any) {
		baths[0]["area_mm2"] = 8 * chemistry.RollEquivalentMM2
		baths[0]["correction"] = []map[string]int{{"mm2_per_l": 0, "permille": 1000}, {"mm2_per_l": 8 * chemistry.RollEquivalentMM2, "permille": 1800}}
		baths[2]["use"], baths[2]["replenish_ml_per_m2"] = "replenished", chemistry.ReversalReplenishment()[2].MLPerM2()
	})
	first, developer := steward.Path("baths", set.Baths[0].ID), steward.Path("baths", set.Baths[2].ID)
	answer := steward.Get(first).Want(http.StatusOK)
	bath := apitest.As[scheduling.BathAnswer](answer)
	if life := bath.ExpiresAt.Sub(set.MixedAt); life != 21*24*time.Hour || bath.Storage.FullPermille != 750 {
		t.Errorf("three quarters full it lasts %s", life)
	}
	if bath.Outlook.BindsFirst != chemistry.LimitLife || !bath.Outlook.DiesAt.Equal(bath.ExpiresAt) || *bath.Outlook.Margin.AreaMM2 != 8*chemistry.RollEquivalentMM2 {
		t.Errorf("%+v", bath.Outlook)
	}
	what := apitest.As[scheduling.WhatIf](steward.Get(first + "/what-if").Want(http.StatusOK))
	if len(what.Rolls) == 0 || *what.Rolls[0].Rolls != 8 || what.Time.MoreMM2 == nil {
		t.Errorf("%+v", what)
	}

	refused := steward.With("If-Match", answer.ETag())
	refused.Post(first+"/quarantine", map[string]string{"because": ""}).WantProblem(http.StatusBadRequest, "malformed")
	steward.Post(first+"/quarantine", map[string]string{"because": "strip"}).WantProblem(http.StatusPreconditionRequired, "precondition-required")
	kept := refused.Post(first+"/quarantine", map[string]string{"because": "strip"}).Want(http.StatusOK)
	if apitest.As[chemistry.Bath](kept).State != chemistry.Quarantined {
		t.Errorf("%+v", kept)
	}
	refused.Post(first+"/release", map[string]string{"because": "a new strip"}).WantProblem(http.StatusPreconditionFailed, "stale")
	steward.With("If-Match", kept.ETag()).Post(first+"/quarantine", map[string]string{"because": "strip"}).WantProblem(http.StatusConflict, "bath-quarantined")
	free := steward.With("If-Match", kept.ETag()).Post(first+"/release", map[string]string{"because": "a new strip"}).Want(http.StatusOK)
	steward.With("If-Match", free.ETag()).Post(first+"/release", map[string]string{"because": "again"}).WantProblem(http.StatusConflict, "bath-not-quarantined")
	stored := steward.With("If-Match", free.ETag()).Post(first+"/storage", map[string]any{"full_permille": 1000, "seal": "displaced"}).Want(http.StatusOK)
	if got := apitest.As[chemistry.Bath](stored); !got.ExpiresAt.After(bath.ExpiresAt) {
		t.Errorf("without air until %s, with until %s", got.ExpiresAt, bath.ExpiresAt)
	}

	steward.Post(developer+"/top-ups", map[string]any{"volume_ml": 111, "note": "a roll"}).Want(http.StatusCreated)
	steward.Post(developer+"/top-ups", map[string]any{"volume_ml": 1, "kit": otherKit(set.Kit)}).WantProblem(http.StatusConflict, "two-kits")
	steward.Post(first+"/top-ups", map[string]any{"volume_ml": 1}).WantProblem(http.StatusUnprocessableEntity, "invalid")
	if ups := apitest.As[lab.List[chemistry.TopUp]](steward.Get(developer + "/top-ups").Want(http.StatusOK)); len(ups.Items) != 1 || ups.Items[0].VolumeML != 111 {
		t.Errorf("%+v", ups)
	}
}

func TestWasteByMonth(t *testing.T) {
	t.Parallel()
	steward, set := mixedSet(t, func(map[string]any, []map[string]any) {})
	fixer := steward.Path("baths", set.Baths[5].ID)
	steward.With("If-Match", steward.Get(fixer).ETag()).Post(fixer+"/disposal", map[string]any{"to": "silver drum", "volume_ml": 980}).Want(http.StatusOK)
	steward.Post(steward.Path("waste"), map[string]any{"kind": "developer", "volume_ml": 600, "to": "county"}).Want(http.StatusCreated)
	steward.Post(steward.Path("waste"), map[string]any{"kind": "soup", "volume_ml": 600, "to": "county"}).WantProblem(http.StatusBadRequest, "malformed")
	if log := apitest.As[lab.List[chemistry.Waste]](steward.Get(steward.Path("waste")).Want(http.StatusOK)); len(log.Items) != 2 || log.Items[0].Kind != chemistry.SilverBearing || log.Items[0].VolumeML != 980 {
		t.Errorf("%+v", log)
	}
	var totals struct {
		Items    []chemistry.WasteTotal `json:"items"`
		Cautions []string               `json:"cautions"`
	}
	steward.Get(steward.Path("waste-totals")).Want(http.StatusOK).Into(&totals)
	if len(totals.Items) != 2 || totals.Items[0].VolumeML != 600 || len(totals.Cautions) == 0 {
		t.Errorf("%+v", totals)
	}
	steward.Post(steward.Path("bath-sets"), map[string]any{"kit": set.Kit, "together_with": []string{otherKit(set.Kit)}}).WantProblem(http.StatusConflict, "two-kits")
}

// otherKit is the id of another kit than one.
func otherKit(id string) string {
	if last := len(id) - 1; id[last] != '0' {
		return id[:last] + "0"
	}
	return id[:len(id)-1] + "1"
}
