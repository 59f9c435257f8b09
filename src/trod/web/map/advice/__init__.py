"""Advice on settings for a site, and on where a camera should stand next."""
