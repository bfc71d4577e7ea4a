"""Stays: one bearing in one position. What counts as a life, a failure, an exclusion, and why. Pure."""
