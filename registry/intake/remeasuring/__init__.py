"""Compute another edition beside the present one over all stored traces, report what moves, and switch."""
