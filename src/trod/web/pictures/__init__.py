"""Pictures on their way to the browser: from cache or archive, people hidden unless asked for."""
