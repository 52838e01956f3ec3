"""Stands here so that every test can import `strategies`."""
