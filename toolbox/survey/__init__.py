"""The whole job: one survey file in, one folder out."""
