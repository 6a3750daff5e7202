"""Estimates with intervals for ring studies; arrays and tables in, frozen results out."""
