"""Sweeps: scenes with any of their values over lists and ranges, a row of figures for every combination.

values    what is typed (`detectors/D*/mounting=6:14:0.5`) → factors
targets   a factor's path → places in a document's data; changes put there
designs   factors → combinations: all of them, or a Latin hypercube
planned   scenes × combinations → jobs, each value proved to stand somewhere
sources   a scene's text and the files it needs, as content: to solve it anywhere
rows      a source and a job → figures
local     jobs on processes of this machine; `cluster` on a Dask cluster
"""
