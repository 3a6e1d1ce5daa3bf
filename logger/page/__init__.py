"""One page for the phone on the pole: what the terminal shows, and the same commands."""
