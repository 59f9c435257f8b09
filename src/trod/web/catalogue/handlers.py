"""The kinds of long work. Importing this module registers them with `trod.web.jobs`."""
