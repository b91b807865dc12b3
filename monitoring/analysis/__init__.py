"""What the counts say: pure functions on arrays, without Django. Each file is named for the question it answers."""
