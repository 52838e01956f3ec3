"""The first door: the app in the browser. Turns values into pages and back; no music in it."""
