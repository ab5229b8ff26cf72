"""Limit tables beside each other: who is strictest, what an edition changed, what a user's own table overrides."""
