"""What pages and other rooms ask about reports and approvals. Other rooms import from here."""
