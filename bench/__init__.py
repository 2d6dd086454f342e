"""Measured ratios against named baselines, both in one run."""
