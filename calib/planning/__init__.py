"""Before anything is measured: what a session will show, and what it takes to know it well."""
