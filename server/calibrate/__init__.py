"""What the statistics promise, measured on simulated farms: plain figures, one file a claim."""
