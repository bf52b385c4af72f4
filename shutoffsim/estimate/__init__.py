"""From incidents to numbers: means, intervals, paired differences, quantiles."""
