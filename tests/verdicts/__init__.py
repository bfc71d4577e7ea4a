"""Simulated plants on which nothing is the matter, and on which something is: what do the verdicts say?"""
