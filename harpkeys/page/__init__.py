"""What a player puts on the stand: lever chart, engraved pages, print."""
