"""Pictures on their way to the browser: from the cache or the archive, people hidden unless somebody asked."""
