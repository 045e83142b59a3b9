"""Detectors cast over surfaces: margins, their causes and gaps, how sure they are."""
