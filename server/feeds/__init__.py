"""What a program of a person's own reads at a secret address: a calendar of rounds due, and the open matters."""
