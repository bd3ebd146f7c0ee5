"""Accepted runs: what a model gave when somebody accepted it, and whether a later run still gives the same.

Reads records, never runs a model.
"""
