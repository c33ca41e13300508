"""Small helpers of arrays: quantiles, grids of cells, means over areas, silhouettes."""
