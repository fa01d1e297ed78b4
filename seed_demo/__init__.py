"""An invented community of clinics, makers and pumps, and the simulator that makes its traces."""
