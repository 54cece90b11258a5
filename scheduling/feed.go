package scheduling

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"

	"wetside/lab"
)

// A Feed is a calendar that a program reads by a secret address, without
// signing in. Only the secret's hash is kept.
type Feed struct {
	ID string `json:"id"`
	// Of says what it shows.
	Of        FeedOf    `json:"of"`
	CreatedAt time.Time `json:"created_at"`
}

// FeedOf is what a feed shows.
type FeedOf string

// The feeds.
const (
	// FeedOfMember shows a member's own sessions, and when their film is dry.
	FeedOfMember FeedOf = "member"
	// FeedOfLab shows the lab's sessions, and names nobody.
	FeedOfLab FeedOf = "lab"
)

// A NewFeed is what it takes to make a feed.
type NewFeed struct {
	Of FeedOf `json:"of"`
}

// A FeedMade is a feed with its address, which is shown this once.
type FeedMade struct {
	Feed Feed   `json:"feed"`
	Path string `json:"path"`
}

// mostFeeds is how many a member may have.
const mostFeeds = 10

// MakeFeed makes a feed for the scope's member, with a secret of 256 bits from
// random. It refuses with Conflict ("too-many-feeds") where they have ten.
func MakeFeed(ctx context.Context, tx pgx.Tx, s lab.Scope, in NewFeed, random io.Reader) (FeedMade, error) {
	if in.Of != FeedOfMember && in.Of != FeedOfLab {
		return FeedMade{}, lab.Refuse(lab.Invalid, "invalid", "there is no such feed").With("/of", "not-one-of", "want member or lab")
	}
	var secret [32]byte
	if _, err := io.ReadFull(random, secret[:]); err != nil {
		return FeedMade{}, fmt.Errorf("make feed: %w", err)
	}
	text := base64.RawURLEncoding.EncodeToString(secret[:])
	// The member's row is held, so that the count holds.
	var n int
	err := tx.QueryRow(ctx, `SELECT (SELECT count(*) FROM feeds f WHERE f.lab_id = m.lab_id AND f.member_id = m.id)
		FROM members m WHERE m.lab_id = $1 AND m.id = $2 FOR NO KEY UPDATE`, s.Lab.ID, s.By.ID).Scan(&n)
	if err != nil {
		return FeedMade{}, fmt.Errorf("count feeds: %w", err)
	}
	if n >= mostFeeds {
		return FeedMade{}, lab.Refuse(lab.Conflict, "too-many-feeds", "a member has %d feeds at most; end one first", mostFeeds)
	}
	f, err := one[Feed](ctx, tx, "feed", `INSERT INTO feeds (lab_id, id, member_id, feed_of, secret_sha256, created_at)
		VALUES ($1, new_id('feed', $5), $2, $3, $4, $5) RETURNING id, feed_of, created_at`,
		s.Lab.ID, s.By.ID, in.Of, hashFeed(text), s.Now)
	if err != nil {
		return FeedMade{}, err
	}
	return FeedMade{Feed: f, Path: "/v1/labs/" + s.Lab.ID + "/calendars/" + text}, nil
}

// hashFeed is what is kept of a feed's secret: that is random and long, so a
// slow hash adds nothing.
func hashFeed(text string) []byte {
	sum := sha256.Sum256([]byte(text))
	return sum[:]
}

// Feeds are the scope's member's, in the order in which they were made.
func Feeds(ctx context.Context, tx pgx.Tx, s lab.Scope) (lab.List[Feed], error) {
	items, err := many[Feed](ctx, tx, "feeds", `SELECT id, feed_of, created_at FROM feeds
		WHERE lab_id = $1 AND member_id = $2 ORDER BY id`, s.Lab.ID, s.By.ID)
	return lab.List[Feed]{Items: items}, err
}

// EndFeed ends one of the scope's member's feeds: its address leads nowhere
// from now on. It refuses with NotFound.
func EndFeed(ctx context.Context, tx pgx.Tx, s lab.Scope, id string) error {
	tag, err := tx.Exec(ctx, `DELETE FROM feeds WHERE lab_id = $1 AND member_id = $2 AND id = $3`, s.Lab.ID, s.By.ID, id)
	if err != nil {
		return fmt.Errorf("end feed: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return lab.Refuse(lab.NotFound, "not-found", "there is no such feed")
	}
	return nil
}

// FeedCalendar is what the feed of a secret shows at s.Now, as iCalendar. The
// lab is the scope's, whose member is nobody yet. It refuses with NotFound where
// there is no such feed, and once its member has left.
func FeedCalendar(ctx context.Context, tx pgx.Tx, s lab.Scope, secret string) ([]byte, error) {
	var of FeedOf
	err := tx.QueryRow(ctx, `SELECT f.feed_of, f.member_id FROM feeds f
		JOIN members m ON m.lab_id = f.lab_id AND m.id = f.member_id AND m.left_at IS NULL
		WHERE f.lab_id = $1 AND f.secret_sha256 = $2`, s.Lab.ID, hashFeed(secret)).Scan(&of, &s.By.ID)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, lab.Refuse(lab.NotFound, "not-found", "there is no such calendar")
	}
	if err != nil {
		return nil, fmt.Errorf("find feed: %w", err)
	}
	if of == FeedOfLab {
		return labCalendar(ctx, tx, s)
	}
	return memberCalendar(ctx, tx, s)
}
