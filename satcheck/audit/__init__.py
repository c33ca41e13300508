"""A month of parts in one go: gathered, judged in parallel, summed up for whoever audits."""
