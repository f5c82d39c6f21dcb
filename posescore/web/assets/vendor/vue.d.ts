// What the pages use of Vue, for the type checker. `this` of a component is what Vue makes of it: unknown here.
export type Component = { [option: string]: any } & ThisType<any>;
export function createApp(component: object, given?: object): { mount(place: Element): void };
