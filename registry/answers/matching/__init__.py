"""Settings that meet a need, and settings most like another one."""
