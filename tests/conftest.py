"""Shared by all tests: its presence puts this folder on the path, for `published`."""
