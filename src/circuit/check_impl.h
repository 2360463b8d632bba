/* Inside circuit_check: groups of nodes, and the checks by subject. */
#ifndef GRIDLEAK_CIRCUIT_CHECK_IMPL_H
#define GRIDLEAK_CIRCUIT_CHECK_IMPL_H

#include "circuit_impl.h"

typedef struct check {
    const circuit *amp;
    base_errors *errors;
    base_arena *arena;
    bool no_memory;
} check;

#define SUSPECT(check, at, ...) base_errors_add((check)->errors, BASE_SUSPICIOUS, (at), __VA_ARGS__)

/* Nodes in groups: those that some kind of path joins. */
typedef struct groups {
    int *of; /* by node: another of its group, itself at the root; NULL: no memory */
} groups;
groups circuit_groups_new(check *check);
int circuit_group_of(const groups *groups, int node);
void circuit_group_join(groups *groups, int a, int b); /* nothing where one is -1 */
bool circuit_group_same(const groups *groups, int a, int b);

/* Joins the ends of a part that a path of this kind goes through. */
void circuit_group_wire(groups *groups,
                        const circuit_part *part); /* no ohms: fuse, switch, jack as set */
void circuit_group_dc(groups *groups,
                      const circuit_part *part); /* all but capacitors; switches all on */

/* The node of a unit's electrode (any of its pins that is joined), or -1. */
int circuit_unit_node(const circuit_part *tube, int unit, tube_electrode electrode);
bool circuit_is_heater_pin(const tube_type *type, int pin); /* an end of it, or its tap */
/* The nodes of the heater's ends, at most three (a tap included); how many are joined. */
int circuit_heater_nodes(const circuit_part *tube, int node[3]);
int circuit_node_named(const circuit *amp, const char *name); /* -1: none */

void circuit_check_paths(check *check);   /* grids and nodes with no DC path */
void circuit_check_tubes(check *check);   /* units half wired, electrodes on one node */
void circuit_check_heaters(check *check); /* supply, volts, a series string */
void circuit_check_supply(check *check);  /* shorts, capacitors' ratings and polarity, the mains */

#endif
