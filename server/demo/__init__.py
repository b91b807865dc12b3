"""The demo: a made-up advisory group and its season, loaded through the services and judged by real processes."""
