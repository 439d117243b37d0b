"""What a score says about keys, accidentals and hands."""
