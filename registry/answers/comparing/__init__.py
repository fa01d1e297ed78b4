"""Two builds, units or firmwares side by side, and which part makes the difference."""
