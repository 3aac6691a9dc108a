"""What panels are made of: fields, buttons, tables to type into, messages."""
