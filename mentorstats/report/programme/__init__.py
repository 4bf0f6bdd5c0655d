"""Sections about the programme: coverage, change, cohorts and sites, and what to record next."""
