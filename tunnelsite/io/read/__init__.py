"""Readers: every file is checked before a library sees it."""
