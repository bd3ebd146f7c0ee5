"""Campaigns: models x sheets x cases x swept surroundings x sampled coefficients, flown in blocks and kept."""
