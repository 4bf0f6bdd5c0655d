"""Sections about dependability and plans of visits."""
