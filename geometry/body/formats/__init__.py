"""Readers of mesh files, one file a format."""
