"""Cap and Saddle: mounting instructions for bearings in split plummer blocks, and their history."""

__version__ = "0.2.0"

ENGINE_VERSION = "2"
"""Raised whenever the same inputs and tables would give another plan or verdict; stored with every revision.

The tests keep golden plans and fail until it is raised; then ``python -m tests.golden --write``.
"""
