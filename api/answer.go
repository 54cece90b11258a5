package api

import (
	"net/http"

	"wetside/lab"
)

// An Answer is what a handler gives back: a status, a body to be written as
// JSON, and where a thing made now stands. A body with a Revision gets an ETag.
type Answer struct {
	Status   int
	Location string
	Body     any

	media  string // of text, where that is the body
	text   []byte
	tagged bool
	cursor string           // the next page's, unsigned
	signed func(string) any // the body with the cursor signed
}

// OK answers 200 with a body.
func OK(body any) Answer { return Answer{Status: http.StatusOK, Body: body} }

// Created answers 201 with a body and where it stands from now on.
func Created(location string, body any) Answer {
	return Answer{Status: http.StatusCreated, Location: location, Body: body}
}

// Text answers 200 with a text of some media type.
func Text(media string, text []byte) Answer {
	return Answer{Status: http.StatusOK, media: media, text: text}
}

// Tagged is Text with an ETag, so that who comes again is answered 304 if
// nothing has changed.
func Tagged(media string, text []byte) Answer {
	a := Text(media, text)
	a.tagged = true
	return a
}

// NoContent answers 204.
func NoContent() Answer { return Answer{Status: http.StatusNoContent} }

// Listed answers 200 with a page of a list; a next page is linked to.
func Listed[T any](l lab.List[T]) Answer {
	if l.Items == nil {
		l.Items = []T{}
	}
	return Answer{
		Status: http.StatusOK,
		Body:   l,
		cursor: l.NextCursor,
		signed: func(c string) any { l.NextCursor = c; return l },
	}
}

// reply makes an Answer of a body and an error: OK unless there is one.
func reply[T any](body T, err error) (Answer, error) {
	if err != nil {
		return Answer{}, err
	}
	return OK(body), nil
}

// listed is reply for lists.
func listed[T any](l lab.List[T], err error) (Answer, error) {
	if err != nil {
		return Answer{}, err
	}
	return Listed(l), nil
}

// revisioned is what an ETag can be made of.
type revisioned interface{ Revision() int64 }
