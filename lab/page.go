package lab

// A Page says which part of a list is asked for: at most Limit items after
// the one whose key is After ("" from the start). Keys are the list's own.
type Page struct {
	Limit int
	After string
}

// A List is one page of a list; NextCursor is "" at its end.
type List[T any] struct {
	Items      []T    `json:"items"`
	NextCursor string `json:"next_cursor,omitempty"`
}

// Cut makes a List of up to Limit+1 items read for a page: the one too many
// says that there is a next page, which begins after the last item kept.
func Cut[T any](items []T, p Page, key func(T) string) List[T] {
	if len(items) <= p.Limit {
		return List[T]{Items: items}
	}
	items = items[:p.Limit]
	return List[T]{Items: items, NextCursor: key(items[len(items)-1])}
}
