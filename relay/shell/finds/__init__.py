"""Finds: how they and their files are given and kept."""
