"""The clinic: a Django project that keeps the record and shows what the engine says. It holds no formula."""
