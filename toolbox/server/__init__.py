"""Server: the catalogue and the whole job behind OGC API - Processes."""
