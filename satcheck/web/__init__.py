"""The phone page at the bench: a small server on the shop's own network."""
