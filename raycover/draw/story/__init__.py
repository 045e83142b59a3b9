"""A solved scene told in slides: space, need, detectors, coverage, what is hidden, before and after, proof."""
