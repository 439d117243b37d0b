"""Everything vet has to say of a score on a harp, as one value."""
