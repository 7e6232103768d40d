"""What puts the rooms together: configuration, the loop, the outbox and the commands."""
