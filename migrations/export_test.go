package migrations

// Provider is goose's, for tests that go to a version of before.
var Provider = provider
