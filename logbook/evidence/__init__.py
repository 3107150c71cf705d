"""What makes a history stand without us: canonical bytes, hashes and the recomputing of both."""
