"""The model behind Storeypace: no page, no charts."""
