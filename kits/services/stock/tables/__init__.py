"""What pages and sheets show of stock as tables; nothing is changed here."""
