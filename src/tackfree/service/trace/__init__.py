"""Bring a drawing into a job, calibrate it, trace zones and features over it, save the deck."""
