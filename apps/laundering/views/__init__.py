"""The laundry's pages."""
