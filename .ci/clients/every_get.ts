// Calls every operation that reads by the generated client, with the contract's own examples: in every format that it
// offers, and for what does not exist. An answer of any kind must come back as a value; nothing may throw.
import * as sdk from "./hey";
import { client } from "./hey/client.gen";
import contract from "./openapi.json";

type Parameter = { in: string; name: string; example?: unknown; schema: { enum?: string[]; $ref?: string; const?: string } };
type Operation = { operationId: string; parameters?: Parameter[] };
type Answer = { data?: unknown; error?: unknown; response?: Response };
type Ask = (asked: { path: object; query: object }) => Promise<Answer>;

const NOBODY = "00000000-0000-4000-8000-000000000000";
const names = (id: string) => id.replace(/_(.)/g, (_, letter: string) => letter.toUpperCase());

function examples(operation: Operation, place: string): Record<string, unknown> {
  const given = (operation.parameters ?? []).filter((one) => one.in === place && one.example !== undefined);
  return Object.fromEntries(given.map((one) => [one.name, one.example]));
}

function formats(operation: Operation): string[] {
  const schema = operation.parameters?.find((one) => one.name === "format")?.schema;
  const schemas = contract.components.schemas as Record<string, { enum?: string[] }>;
  return schema?.enum ?? schemas[schema?.$ref?.split("/").pop() ?? ""]?.enum ?? [];
}

export async function everyGet(service: string, token: string): Promise<string[]> {
  client.setConfig({ baseUrl: service, auth: () => token });
  const wrong: string[] = [];
  let called = 0;
  const ask = async (place: string, wanted: boolean, id: string, path: object, query: object) => {
    try {
      const { data, error, response } = await (sdk as unknown as Record<string, Ask>)[names(id)]({ path, query });
      const came = wanted ? data : error;
      if (response?.ok !== wanted || came === undefined || came === "") wrong.push(`${place}: ${response?.status} ${JSON.stringify(error)}`);
    } catch (thrown) {
      wrong.push(`${place}: ${String(thrown)}`);
    }
    called += 1;
  };
  for (const item of Object.values(contract.paths) as { get?: Operation }[]) {
    if (!item.get) continue;
    const [id, path, query] = [item.get.operationId, examples(item.get, "path"), examples(item.get, "query")];
    for (const format of [undefined, ...formats(item.get)]) {
      const more = format === "text" ? { column: "units", kind: "games" } : {};
      await ask(`${id} ${format ?? ""}`, true, id, path, { ...query, ...more, ...(format && { format }) });
      const ids = Object.keys(path).filter((name) => name.endsWith("_id"));
      if (ids.length > 0) {
        const nobody = Object.fromEntries(ids.map((name) => [name, NOBODY]));
        await ask(`${id} ${format ?? ""} of nobody`, false, id, { ...path, ...nobody }, { ...query, ...(format && { format }) });
      }
    }
  }
  if (called < 100) wrong.push(`only ${called} calls`);
  return wrong;
}
