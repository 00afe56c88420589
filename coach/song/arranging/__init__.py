"""arranging"""
