"""The only room that knows HTTP: pages, forms, access, and one router for each kind of user."""
