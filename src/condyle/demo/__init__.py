"""The crew of a harbour salvage company, sculpted by code: bodies to try every step on."""
