"""Speed as ratios: each figure is measured beside a peer, in turns, in one run on one machine."""
