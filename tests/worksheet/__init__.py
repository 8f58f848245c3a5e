"""The work sheet and the estimate: order, counts, cautions, money."""
