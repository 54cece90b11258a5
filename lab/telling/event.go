package telling

import (
	"encoding/json"
	"fmt"
	"time"
)

// pinged is the kind of the event that tries a hook out; nobody is told it otherwise.
const pinged Kind = "ping"

// An Event is what hooks are sent: a CloudEvent 1.0 in its JSON format. It is
// thin: it says what happened and to what, and names nobody; who may know more
// reads that by the API. The same event is the same bytes however often it is sent.
type Event struct {
	SpecVersion string    `json:"specversion"`
	ID          string    `json:"id"`
	Source      string    `json:"source"`
	Type        string    `json:"type"`
	Time        time.Time `json:"time"`
	Subject     *string   `json:"subject,omitempty"`
	ContentType string    `json:"datacontenttype"`
	Data        EventData `json:"data"`
}

// EventData is what happened, and the id of what it is about.
type EventData struct {
	Lab   string  `json:"lab"`
	Kind  Kind    `json:"kind"`
	About *string `json:"about,omitempty"`
}

const eventMedia = "application/cloudevents+json"

// encode is the body of an event.
func (e Event) encode() ([]byte, error) {
	body, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("encode event: %w", err)
	}
	return body, nil
}

func newEvent(labID, id string, kind Kind, about *string, at time.Time) Event {
	return Event{
		SpecVersion: "1.0", ID: id, Source: "/v1/labs/" + labID, Type: "wetside." + string(kind) + ".v1",
		Time: at, Subject: about, ContentType: "application/json",
		Data: EventData{Lab: labID, Kind: kind, About: about},
	}
}
