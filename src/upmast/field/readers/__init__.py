"""Readers of field files, one format a module."""
