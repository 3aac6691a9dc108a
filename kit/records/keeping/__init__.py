"""A workspace's file and what lies beside it: opened, written whole, copied, put back."""
