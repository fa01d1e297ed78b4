"""The commands, a module a group. What they need to talk or to draw is loaded only when one runs."""
