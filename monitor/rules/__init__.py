"""Readings and log entries in, Assessment out: the one evaluator.

Pure: no clock, no store, no network; the same input gives the same answer to the last digit.
"""
