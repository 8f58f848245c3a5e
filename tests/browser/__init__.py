"""A real Chromium, without a network, looks at what people are given."""
