"""Reports on paper: pages as PDF, set by typst."""
