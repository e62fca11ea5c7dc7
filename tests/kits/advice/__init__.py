"""Advice for trips of others."""
