"""Many scores: a folder vetted against several harps, by any executor, into rows that a broken run keeps."""
